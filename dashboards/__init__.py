"""Show figures as pages and charts, and hold the command that joins the rooms. Holds no SQL and no statistics."""
