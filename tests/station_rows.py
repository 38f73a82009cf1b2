"""Rows of made-up station files."""

from readiness.sources.uscrn import DAILY01


def daily_line(day: str, **values: float) -> list[str]:
    """One row of daily01 in native order; values not given are missing."""
    row = dict.fromkeys(DAILY01, "-9999.0") | {
        name: "-99.000" for name in DAILY01 if "MOISTURE" in name
    }
    row |= {
        "WBANNO": "12345",
        "LST_DATE": day,
        "CRX_VN": "2.422",
        "LONGITUDE": "-97.50",
        "LATITUDE": "47.00",
        "SUR_TEMP_DAILY_TYPE": "C",
    }
    row |= {name: str(value) for name, value in values.items()}
    return [row[name] for name in DAILY01]
