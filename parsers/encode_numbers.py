"""Numbers as sentences write them: fixed point, angles below 360, times, positions. None becomes a null field."""

from functools import lru_cache


def fixed(value: float | None, decimals: int) -> str:
    """A fixed-point number, without a minus sign on zero."""
    if value is None:
        return ""
    text = f"{value:.{decimals}f}"
    return text[1:] if text[0] == "-" and float(text) == 0 else text


def angle(value: float | None, decimals: int = 1) -> str:
    """An angle in [0, 360) after rounding too."""
    if value is None:
        return ""
    return f"{round(value % 360.0, decimals) % 360.0:.{decimals}f}"


def signed(value: float | None, decimals: int, letters: str) -> str:
    """Magnitude and letter, two fields: `signed(-3.1, 1, "EW")` is `3.1,W`."""
    if value is None:
        return ","
    return f"{abs(value):.{decimals}f},{letters[0] if value >= 0 else letters[1]}"


@lru_cache(maxsize=65536)
def _clock_text(centiseconds: int) -> str:
    seconds, hundredths = divmod(centiseconds, 100)
    minutes, s = divmod(seconds, 60)
    h, m = divmod(minutes, 60)
    return f"{h:02d}{m:02d}{s:02d}.{hundredths:02d}"


def clock(time_of_day_s: float | None) -> str:
    """hhmmss.ss, cut (never rounded up: a time must not come before its second)."""
    if time_of_day_s is None:
        return ""
    return _clock_text(int(time_of_day_s * 100 + 1e-6) % 8_640_000)


def latitude(lat_deg: float | None, decimals: int) -> str:
    """ddmm.mmmm,N as two fields."""
    return _degrees_minutes(lat_deg, 2, decimals, "NS")


def longitude(lon_deg: float | None, decimals: int) -> str:
    """dddmm.mmmm,E as two fields; any turn of longitude is brought into [-180, 180)."""
    return _degrees_minutes(None if lon_deg is None else (lon_deg + 180.0) % 360.0 - 180.0, 3, decimals, "EW")


def _degrees_minutes(value: float | None, width: int, decimals: int, letters: str) -> str:
    if value is None:
        return ","
    scale = 10**decimals
    degrees, parts = divmod(round(abs(value) * 60 * scale), 60 * scale)
    whole, fraction = divmod(parts, scale)
    return f"{degrees:0{width}d}{whole:02d}.{fraction:0{decimals}d},{letters[0] if value >= 0 else letters[1]}"


def with_unit(value: float | None, decimals: int, letter: str) -> str:
    """A value and its unit letter, both null where there is no value."""
    return "," if value is None else f"{fixed(value, decimals)},{letter}"
