"""The page: today's orders, entries and the season, on phone and laptop.

Layer: may import review and what lies below.

- `app`: the app with all its views
- `pages`: pages that are read
- `forms`: entries written, listed, corrected and taken back
- `crew_order`: a crew's own order, moved, priced and set
- `replan`: a replan started, followed and cancelled
- `season_view`: the season so far
- `template_context`: what the templates need besides the shared filters
- `context`: folder, farm, book, planner and clock of the app
- `offline`: what a phone installs and keeps, and entries that it sends later
- `server`: addresses, limits of connections, threads, an orderly end
- `tls`: https
- `planner`: the planning processes as the page sees them, and where a replan stands
- `worker`: the planning processes and their messages

Package `access`: who may see and write the page.
"""
