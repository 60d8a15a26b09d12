"""What can be wrong: one file a family. Each takes turns and events in order and writes flags."""
