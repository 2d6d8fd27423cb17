"""How far a colour stands out from its ground."""

import re


def contrast(one: str, other: str) -> float:
    """WCAG 2.1: relative luminance of sRGB colours, ratio with 0.05 added to each."""

    def luminance(colour: str) -> float:
        channels = [int(pair, 16) / 255 for pair in re.findall("..", colour[1:])]
        linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
