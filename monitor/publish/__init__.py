"""What others may see over MQTT while an engine is logged, and the screen that looks on from elsewhere.

TOPICS.md says what goes over the wire. `publishing.py` is what a logging command enters, `following.py` what a second
screen does.
"""
