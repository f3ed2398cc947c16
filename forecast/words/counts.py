"""Counts as a person says them: no figure, 1 figure, 7 figures; none of 7 lines is closed."""

from __future__ import annotations


def so_many(count: int, noun: str, plural: str = "") -> str:
    """Write a count with its noun: ``no receipts``, ``1 receipt``, ``3 receipts``."""
    if count == 1:
        return f"1 {noun}"
    return f"{count or 'no'} {plural or f'{noun}s'}"


def so_many_of(count: int, whole: int, noun: str, verb: tuple[str, str] = ("is", "are")) -> str:
    """Write how many of all, with the verb that follows: ``1 of 7 lines is``, ``2 of 7 lines are``.

    Parameters
    ----------
    count, whole : int
    noun : str
        In the singular.
    verb : tuple of str
        In the singular and in the plural.
    """
    single = whole == 1 or count <= 1
    return f"{count or 'none'} of {so_many(whole, noun)} {verb[0 if single else 1]}"


__all__ = ["so_many", "so_many_of"]
