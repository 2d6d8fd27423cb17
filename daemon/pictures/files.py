"""A drawing into a file: SVG as it is, PNG through a renderer that is an extra."""

from pathlib import Path

from daemon.errors import CANNOT_OPEN, UserError
from daemon.pictures.drawing import LIGHT, Drawing

PNG_ZOOM = 2.0


def write(drawing: Drawing, path: Path) -> None:
    """Write the drawing as the path's ending says, .svg or .png. Raises UserError for what cannot be done."""
    kind = path.suffix.lower()
    if kind not in (".svg", ".png"):
        raise UserError(f"--plot {path}: name a file that ends in .svg or .png")
    svg = drawing.svg(LIGHT)
    data = svg.encode("utf-8") if kind == ".svg" else _png(svg, path)
    try:
        path.write_bytes(data)
    except OSError as error:
        raise UserError(f"--plot {path}: cannot be written: {error.strerror}", CANNOT_OPEN) from error


def _png(svg: str, path: Path) -> bytes:
    try:
        import resvg_py
    except ImportError:
        raise UserError(
            f"--plot {path}: PNG needs a renderer: pip install resvg_py, or name a file that ends in .svg"
        ) from None
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=PNG_ZOOM, sans_serif_family="DejaVu Sans"))
