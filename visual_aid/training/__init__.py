"""Labelled photos and the training of what the engine has learned from them."""
