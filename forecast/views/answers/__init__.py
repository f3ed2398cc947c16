"""What each command answers programs with, as types alone: nothing imports them but type checkers and their schema.

Estimates and named results stand in them as they are; `told` makes figures of them, and `answer_schema` tells of that.
"""
