"""What is kept: photos, screenings and what people said of them."""

PHOTOS_VARIABLE = "VISUAL_AID_PHOTOS"
"""Environment variable that names the folder of the photo files; needed with a database server."""
