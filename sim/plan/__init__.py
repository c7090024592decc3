"""Planning an outing: when, how the disc will turn, what it will show, and how to do it safely."""
