"""How well the records of labelled photos agree with the labels."""
