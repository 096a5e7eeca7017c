"""voicecheck: a hands-free, offline inspection loop for tractor-trailer drivers."""

__version__ = "0.1.0"
