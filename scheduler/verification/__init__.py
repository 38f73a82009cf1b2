"""How good forecasts and models were.

Layer: may import report and what lies below.

- `forecasts`: stored forecasts against what fell
- `page`: the verification as page and lines
- `models_page`: `afterrain validate` as one page
"""
