"""Load past job records: files -> records -> checks -> published warehouse. Knows no analytics and no Dash."""
