"""The counter: a shop's shelf as a page on this machine, for whoever serves a customer or takes a delivery in."""
