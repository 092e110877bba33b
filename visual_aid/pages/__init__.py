"""The page on which a person looks at photos and decides."""
