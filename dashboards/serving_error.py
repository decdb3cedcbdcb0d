"""Say why pages cannot be served. Apart from `serving`, so that naming it does not import all pages."""


class ServingError(Exception):
    """Say in one plain sentence why the pages cannot be served."""
