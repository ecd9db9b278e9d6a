"""A sheet of a circuit drawing as SVG text: symbols after IEC 60617 (from memory), in black and grey.

Coordinates are pixels, y downwards. A two-pole part is drawn between two points on one horizontal
or vertical line; its label stands above (horizontal) or to the right (vertical).
"""

from html import escape

FONT = "font-family=\"DejaVu Sans, Verdana, Arial, sans-serif\""


class Sheet:
    """Collects shapes; `svg` gives the file."""

    def __init__(self, width, height, title, description):
        self.size = (width, height)
        self.head = (title, description)
        self.shapes = []

    def svg(self):
        """The whole file."""
        width, height = self.size
        title, description = map(escape, self.head)
        lines = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
            f'viewBox="0 0 {width} {height}" role="img" aria-labelledby="t d">',
            f'<title id="t">{title}</title>',
            f'<desc id="d">{description}</desc>',
            f'<rect width="{width}" height="{height}" fill="#fff"/>',
            f'<g fill="none" stroke="#000" stroke-width="1.6" stroke-linecap="round" {FONT} font-size="13">',
            *self.shapes,
            "</g>",
            "</svg>",
        ]
        return "\n".join(lines) + "\n"

    def shape(self, text):
        self.shapes.append(text)

    # Plain shapes

    def line(self, *points, width=None, dash=None, arrow=False):
        extra = f' stroke-width="{width}"' if width else ""
        extra += f' stroke-dasharray="{dash}"' if dash else ""
        self.shape(f'<polyline points="{" ".join(f"{x},{y}" for x, y in points)}"{extra}/>')
        if arrow:
            (x0, y0), (x, y) = points[-2:]
            dx, dy = (x > x0) - (x < x0), (y > y0) - (y < y0)
            tips = [(x - 8 * dx - 4 * dy, y - 8 * dy - 4 * dx), (x - 8 * dx + 4 * dy, y - 8 * dy + 4 * dx)]
            self.polygon((x, y), *tips, fill="#000")

    def polygon(self, *points, fill="none"):
        self.shape(f'<polygon points="{" ".join(f"{x},{y}" for x, y in points)}" fill="{fill}"/>')

    def rect(self, x, y, w, h, fill="#fff", dash=None, width=None):
        extra = f' stroke-dasharray="{dash}"' if dash else ""
        extra += f' stroke-width="{width}"' if width else ""
        self.shape(f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="{fill}"{extra}/>')

    def circle(self, x, y, r, fill="#fff"):
        self.shape(f'<circle cx="{x}" cy="{y}" r="{r}" fill="{fill}"/>')

    def dot(self, x, y):
        """Wires joined."""
        self.shape(f'<circle cx="{x}" cy="{y}" r="3" fill="#000"/>')

    def text(self, x, y, text, anchor="start", bold=False, size=None):
        extra = ' font-weight="bold"' if bold else ""
        extra += f' font-size="{size}"' if size else ""
        for n, part in enumerate(text.split("\n")):
            self.shape(
                f'<text x="{x}" y="{y + n * ((size or 13) + 3)}" text-anchor="{anchor}" fill="#000" '
                f'stroke="none"{extra}>{escape(part)}</text>'
            )

    def box(self, x, y, w, h, label, fill="#f2f2f2", bold_first=True):
        """A block with centred lines."""
        self.rect(x, y, w, h, fill)
        parts = label.split("\n")
        top = y + h / 2 - 8 * len(parts) + 12
        for n, part in enumerate(parts):
            self.text(x + w / 2, top + 16 * n, part, "middle", bold=bold_first and n == 0)

    # Two-pole parts

    def two(self, a, b, label, body, draw, side=1, gap=16):
        """Leads from `a` and `b` to a body of length `body`; `draw(u, v)` draws in its own axes."""
        (x1, y1), (x2, y2) = a, b
        flat = y1 == y2
        length = abs(x2 - x1) + abs(y2 - y1)
        sign = 1 if (x2 + y2) > (x1 + y1) else -1
        lead = (length - body) / 2

        def at(u, v):
            """Point `u` along from `a`, `v` across (up or right)."""
            return (x1 + sign * u, y1 - v) if flat else (x1 + v, y1 + sign * u)

        self.line(a, at(lead, 0))
        self.line(at(lead + body, 0), b)
        draw(lambda u, v: at(lead + u, v))
        if label:
            mid = at(length / 2, 0)
            rows = label.count("\n")
            if flat:
                y = mid[1] - gap - 16 * rows if side > 0 else mid[1] + gap + 12
                self.text(mid[0], y, label, "middle")
            else:
                x, anchor = (mid[0] + gap, "start") if side > 0 else (mid[0] - gap, "end")
                self.text(x, mid[1] + 4 - 8 * rows, label, anchor)

    def resistor(self, a, b, label="", side=1):
        self.two(a, b, label, 36, lambda at: self.polygon(at(0, 7), at(36, 7), at(36, -7), at(0, -7), fill="#fff"), side)

    def fuse(self, a, b, label="", side=1):
        def draw(at):
            self.polygon(at(0, 6), at(36, 6), at(36, -6), at(0, -6), fill="#fff")
            self.line(at(0, 0), at(36, 0))

        self.two(a, b, label, 36, draw, side)

    def capacitor(self, a, b, label="", side=1, polar=False):
        def draw(at):
            self.line(at(0, 12), at(0, -12), width=2.4)
            self.line(at(7, 12), at(7, -12), width=2.4)
            if polar:
                self.line(at(-8, 7), at(-8, 13), width=1.2)
                self.line(at(-5, 10), at(-11, 10), width=1.2)

        self.two(a, b, label, 7, draw, side, gap=18)

    def diode(self, a, b, label="", side=1, kind=""):
        """Current flows from `a` to `b`."""

        def draw(at):
            self.polygon(at(0, 8), at(0, -8), at(15, 0), fill="#fff")
            self.line(at(15, 8), at(15, -8), width=2.2)
            if kind == "zener":
                self.line(at(15, 8), at(11, 8))
                self.line(at(15, -8), at(19, -8))
            if kind == "schottky":
                self.line(at(15, 8), at(11, 8), at(11, 5))
                self.line(at(15, -8), at(19, -8), at(19, -5))
            if kind == "light":
                for u in (4, 11):
                    self.line(at(u, 11), at(u + 7, 19), width=1.2)

        self.two(a, b, label, 15, draw, side, gap=20)

    def battery(self, a, b, label="", side=1):
        """Plus at `a`."""

        def draw(at):
            self.line(at(0, 14), at(0, -14), width=2)
            self.line(at(7, 7), at(7, -7), width=3.4)

        self.two(a, b, label, 7, draw, side, gap=20)

    def jumper(self, a, b, label="", side=1):
        def draw(at):
            for u in (0, 24):
                self.circle(*at(u, 0), 3)
            self.line(at(0, 7), at(24, 7), width=2.2)

        self.two(a, b, label, 24, draw, side)

    def coil(self, x, y, turns, right=True):
        """A winding downwards from (x, y), 16 a turn; gives its lower end."""
        sweep = 1 if right else 0
        path = f"M{x},{y}" + "".join(f" a8,8 0 0 {sweep} 0,16" for _ in range(turns))
        self.shape(f'<path d="{path}"/>')
        return x, y + 16 * turns

    # Other parts

    def ground(self, x, y, label=""):
        for n, half in enumerate((11, 7, 3)):
            self.line((x - half, y + 5 * n), (x + half, y + 5 * n), width=2)
        if label:
            self.text(x + 16, y + 12, label)

    def rail(self, x, y, label):
        """A supply above (x, y)."""
        self.line((x, y), (x, y - 10))
        self.line((x - 9, y - 10), (x + 9, y - 10), width=2)
        self.text(x, y - 16, label, "middle")

    def terminal(self, x, y, label, side=-1):
        self.circle(x, y, 4)
        self.text(x + 10 * side, y + 4, label, "end" if side < 0 else "start")

    def pin(self, x, y, label):
        """A pin of the processor, wire coming from the left."""
        w = 9 * len(label) + 16
        self.polygon((x, y), (x + 9, y - 11), (x + w, y - 11), (x + w, y + 11), (x + 9, y + 11), fill="#e6e6e6")
        self.text(x + 9 + (w - 9) / 2, y + 4, label, "middle", bold=True)

    def amplifier(self, x, y, label="", plus_top=True):
        """Operational amplifier with its left edge at x, centred on y; gives (plus, minus, out)."""
        self.polygon((x, y - 32), (x, y + 32), (x + 56, y), fill="#fff")
        top, bottom = (x, y - 16), (x, y + 16)
        self.text(x + 6, y - 11, "+" if plus_top else "−", bold=True)
        self.text(x + 6, y + 21, "−" if plus_top else "+", bold=True)
        if label:
            self.text(x + 18, y + 4, label, size=11)
        plus, minus = (top, bottom) if plus_top else (bottom, top)
        return plus, minus, (x + 56, y)

    def transistor_light(self, x, y):
        """Light-sensitive transistor: collector up at (x, y), emitter at (x, y + 60)."""
        self.circle(x - 6, y + 30, 20)
        self.line((x - 14, y + 18), (x - 14, y + 42), width=3)
        self.line((x - 14, y + 26), (x, y + 16), (x, y))
        self.line((x - 14, y + 34), (x, y + 44), (x, y + 60))
        self.polygon((x, y + 44), (x - 8, y + 43), (x - 4, y + 37), fill="#000")
        for n in (0, 9):
            self.line((x - 44, y + 18 + n), (x - 29, y + 24 + n), arrow=False, width=1.2)
            self.polygon((x - 28, y + 25 + n), (x - 35, y + 25 + n), (x - 32, y + 19 + n), fill="#000")

    def barrier(self, x, y1, y2, label):
        """Reinforced insulation, seen as a wall."""
        self.line((x - 3, y1), (x - 3, y2), width=1.6, dash="7 4")
        self.line((x + 3, y1), (x + 3, y2), width=1.6, dash="7 4")
        self.text(x, y1 - 20, label, "middle", bold=True, size=12)

    def frame(self, x, y, w, h, label):
        """A dashed frame round a unit."""
        self.rect(x, y, w, h, fill="none", dash="3 4", width=1.2)
        self.text(x + 8, y + 17, label, bold=True)

    def note(self, x, y, text):
        self.text(x, y, text, size=12)
