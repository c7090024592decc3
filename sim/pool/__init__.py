"""Many outings scored together: what all people share is integrated once over everyone's likelihood."""
