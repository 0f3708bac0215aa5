"""Open signalling standards: how an event is written in a message."""
