"""The live screen: which cylinder, which wire, when; to be read from two metres."""
