"""Where the Sun is and which way its face is turned, for any place and moment, under one geometry."""
