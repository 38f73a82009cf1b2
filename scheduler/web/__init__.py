"""The page: today's orders, entries and the season, on phone and laptop.

Layer: may import review and what lies below.

- `app`: the views
- `forms`: entries, corrections, replans
- `crew_order`: a crew's own order, moved, priced and set
- `season_view`: the season so far
- `template_context`: words, shades and values for the templates
- `context`: folder, farm, book, planner and clock of a request
- `access`: who may see and write: passphrase, sessions, links, hosts
- `server`: addresses, threads, an orderly end
- `worker`: planning in processes of their own
"""
