"""Texts, numbers and dates in the language of the farm.

Layer: imports nothing of the scheduler.

- `translation`: the active language; texts translated when they are made
- `locale_formats`: numbers, and the names of days and months

`catalogues/` holds a GNU gettext file (.po) of each language. The English text is the key.
"""
