"""What `plan` and `ready` print.

- `first_screen`: the day in at most forty lines
- `full_plan`: every order with its figures, money, cautions
- `ready_hours`: workable hours by field and day
- `lines`: lines within the width of the terminal
"""
