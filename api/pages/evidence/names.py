"""Lists that are typed into one field: ids and numbers, by commas, spaces or lines."""

import re


def names_in(text: str) -> list[str]:
    """Each name once, in upper case, in the order typed."""
    return list(dict.fromkeys(re.split(r"[\s,;]+", text.strip().upper()))) if text.strip() else []
