"""Measuring on two photos: a joint at two visits."""
