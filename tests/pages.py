"""What a page says, whatever lines its template stands in."""


def in_one_line(page: str) -> str:
    """The page with each run of white space as one blank, as a browser shows it."""
    return " ".join(page.split())
