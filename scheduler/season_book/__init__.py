"""The season book: what people saw and did. It is added to and never erased.

Layer: may import weather and what lies below.

- `kinds`: kinds of entries: one table for terminal, page and CSV
- `parsing`: texts to entries, checked
- `formatting`: entries as people read them
- `store`: the book's SQLite file: tables, versions, copies
- `book`: the book itself: entries, issued plans, queries
- `csv_exchange`: the book as a CSV table and back
- `farm_state`: what entries say: cut, down, away, shut, delivered
- `current_farm`: the farm as the book leaves it on a morning
"""
