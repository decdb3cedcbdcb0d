"""Write the records of an invented workshop from a scenario and a seed, and the truth planted in them."""
