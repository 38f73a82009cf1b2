"""What people read: terminal, sheet, texts, calendars, charts.

Layer: may import planning and what lies below.

- `phrases`: phrases about orders, the same in every output
- `order_phrases`: phrases about reasons, fallbacks and changes of orders
- `caution_phrases`: phrases about cautions, of the day and standing
- `weather_phrases`: phrases about the weather of a plan
- `lesson_phrases`: phrases about what readings taught
- `figures/`: figures of a plan, and figures as text inside a page
- `terminal/`: what `plan` and `ready` print
- `messages`: a text message for each crew
- `template_environment`: options, filters and functions that all templates share
- `today`: a day of each crew in five lines
- `sheet`: the printable sheet
- `crew_calendar`: a crew's calendar, with events it no longer has cancelled
- `plan_document`: a plan as JSON data, for plan.json and the season book
- `plan_csv`: the orders as a table for spreadsheets
- `files`: the files of a plan, their names and contents
"""
