"""The job file: what it may say, reading, checking, writing."""
