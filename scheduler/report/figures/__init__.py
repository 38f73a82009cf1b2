"""Figures of a plan, readable in black and white: `plot_x(data, *, ax=None) -> Axes`, or SVG text.

Markers and line styles tell crews apart, never colour alone. One sequential palette runs from
light for little to dark for much; hatching means unknown. Only these modules import matplotlib.

- `palette`: colours, which need no drawing library
- `axes`: axes of time and money, labels beside points, ranges of hours
- `timeline`: orders of each crew against time
- `farm_map`: fields, and the way of each crew through them
- `loss_charts`: loss by forecast member, and beside the dispatching rules
- `panel`: a panel of a figure, written as SVG without a drawing library
- `curves`: grain moisture and soil water of a field over the members
- `hour_shades`: shades of the tables of hours
- `svg`: figures as text inside a page, with the text that stands for them
"""
