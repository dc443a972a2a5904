"""Heat shields: the room for one, the blank to cut, and its flat pattern."""
