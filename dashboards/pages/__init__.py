"""Declare the pages, one file a page: whose decision it is, and the sections that answer it."""
