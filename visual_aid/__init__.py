"""Find and measure photo evidence of loosening joints, for a person to decide on."""

__version__ = "0.1.0"
