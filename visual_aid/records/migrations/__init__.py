"""The steps from one schema to the next, applied when a store is opened."""
