"""What is kept: photos, screenings and what people said of them."""
