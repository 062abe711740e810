"""Pages over HTTP: what they say, what they refuse, and their forms without scripts."""
