"""The season book: what people saw and did. Entries are added and never erased.

Layer: may import weather and what lies below.

- `entry_kinds`: kinds of entries: one table for terminal, page and CSV
- `value_parsing`: texts to values of facts
- `parsing`: texts to entries, checked
- `formatting`: entries as people read them
- `store`: the book's SQLite file: tables, versions, copies
- `book`: the book itself: entries, issued plans, queries
- `csv_exchange`: the book as a CSV table and back
- `farm_state`: areas cut, breakdowns, absences, closures and loads by entries
- `current_farm`: the farm as the book leaves it on a morning
"""
