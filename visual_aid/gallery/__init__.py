"""Teaching from what was found: like examples side by side, lessons, the quiz and how it went."""
