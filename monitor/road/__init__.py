"""What `log` says and hears: the words, the lines, the keys, and what keeps the machine awake."""
