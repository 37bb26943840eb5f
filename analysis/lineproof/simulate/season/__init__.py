"""The demo season: nine events of an invented valley, with faults planted in five of them."""
