"""The farm side of afterrain: machines, people, prices, plans, the season book and the outlets."""
