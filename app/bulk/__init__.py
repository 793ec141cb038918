"""What falls due on a whole fleet, as columns of numbers: the answers of `core`, without an object for each rule."""
