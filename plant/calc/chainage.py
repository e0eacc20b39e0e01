def tag_key(t):
    return "".join(c for c in t.upper() if c.isalnum())
