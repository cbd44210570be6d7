"""All that the season asks for: to tick off, and as a calendar to subscribe to."""
