"""The loop and the worlds that it can run in. loop.py owns the loop; nothing else does."""
