"""Receipts of invented shops, printed and photographed by rendering: blur, a skewed and turned sheet, shade, noise."""

from __future__ import annotations

import datetime as dt
import io
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

FONTS = (
    "dejavu/DejaVuSansMono.ttf", "liberation/LiberationMono-Regular.ttf", "liberation/LiberationSans-Regular.ttf",
    "dejavu/DejaVuSansMono-Bold.ttf", "liberation/LiberationSansNarrow-Regular.ttf", "dejavu/DejaVuSerif.ttf",
)  # fmt: skip
FOLDER = Path("/usr/share/fonts/truetype")


@dataclass(frozen=True)
class Style:
    """How receipts of a country look."""

    shops: tuple[str, ...]
    day: str
    total: str
    items: tuple[str, ...]
    tax: str
    paid: str
    currency: str
    money: str
    comma: bool
    address: str


STYLES = (
    Style(
        ("Plainly Invented Paints", "The Nowhere Tool Shed", "Fictional Fasteners Ltd"), "%d/%m/%Y", "TOTAL",
        ("Primer 2K 1L", "Masking tape 48mm", "Sanding discs P180", "Panel wipe 5L", "Mixing cups"), "VAT 20%",
        "CARD", "GBP", "£{}", False, "12 Nowhere Street",
    ),
    Style(
        ("Harz & Matte Erfunden GmbH", "Lackhaus Irgendwo KG", "Werkzeug Ausgedacht e.K."), "%d.%m.%Y", "Gesamtbetrag",
        ("Polyesterharz 5 kg", "Härter 100 g", "Spachtel fein", "Schleifpapier P240", "Abdeckband"), "MwSt 19 %",
        "EC-Karte", "EUR", "{} EUR", True, "Irgendweg 1, 00000 Nirgends",
    ),
    Style(
        ("Ateliers Fictifs SARL", "Peintures Imaginaires", "Quincaillerie Rêvée SAS"), "%d/%m/%Y", "TOTAL TTC",
        ("Apprêt 1L", "Résine 5kg", "Mastic", "Ruban 48mm", "Abrasif P180"), "TVA 20%", "CB", "EUR", "{} €", True,
        "3 rue de Nulle Part",
    ),
    Style(
        ("Imaginary Kit Foundry LLC", "Made-Up Motor Supply", "Nonesuch Hardware Inc"), "%b %d, %Y", "TOTAL",
        ("Rivet nuts M6 x50", "Seam sealer", "Epoxy primer qt", "Clear coat gal", "Grinding disc"), "SALES TAX 8%",
        "VISA", "USD", "${}", False, "400 Unreal Ave",
    ),
    Style(
        ("Zmyslony Sklep sp. z o.o.", "Farby Nieistniejace", "Narzedzia Wymyslone"), "%Y-%m-%d", "SUMA",
        ("Podklad 1L", "Zywica 5kg", "Szpachla", "Tasma 48mm", "Papier P180"), "PTU A 23%", "KARTA", "PLN", "{} PLN",
        True, "ul. Nigdzie 7",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Receipt:
    """A receipt: its lines and what it says."""

    lines: tuple[tuple[str, str], ...]
    amount: str
    day: str
    currency: str
    supplier: str


def receipt(number: int) -> Receipt:
    """Make up the receipt with this number: always the same one."""
    chance = random.Random(1000 + number)
    style = STYLES[number % len(STYLES)]
    shop = style.shops[number // len(STYLES) % len(style.shops)]
    day = dt.date(2026, 1, 1) + dt.timedelta(days=chance.randrange(320))

    def money(cents: int, sign: bool = True) -> str:
        plain = f"{cents / 100:,.2f}"
        if style.comma:
            plain = plain.translate(str.maketrans({",": ".", ".": ","}))
        return style.money.format(plain) if sign else plain

    items = [
        (name, chance.randrange(190, 18_990)) for name in chance.sample(style.items, chance.randint(2, 5))
    ]
    total = sum(cents for _, cents in items)
    lines = [
        (shop, ""),
        (style.address, ""),
        ("", ""),
        (f"{day:{style.day}}   {chance.randint(8, 18)}:{chance.randint(10, 59)}", ""),
    ]
    lines += [(name, money(cents, sign=False)) for name, cents in items]
    lines += [
        ("", ""),
        (style.total, money(total)),
        (style.tax, money(total // 6, sign=False)),
        (style.paid, money(total)),
        ("", ""),
    ]
    lines.append((f"No. {chance.randrange(10_000, 99_999)}", ""))
    return Receipt(tuple(lines), f"{total / 100:.2f}", day.isoformat(), style.currency, shop)


def font(number: int, size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Give a font for print, Debian's fonts where they are installed."""
    file = FOLDER / FONTS[number % len(FONTS)]
    return ImageFont.truetype(str(file), size) if file.exists() else ImageFont.load_default(size)


def printed(lines: Sequence[tuple[str, str]], number: int) -> Image.Image:
    """Print a receipt on a strip of paper."""
    size = 30
    face, large = font(number, size), font(number, size + 6)
    width = 640 + 40 * (number % 4)
    paper = Image.new("L", (width, 90 + 46 * len(lines)), 246)
    draw = ImageDraw.Draw(paper)
    for row, (left, right) in enumerate(lines):
        top = 45 + 46 * row
        face_here = large if row == 0 else face
        draw.text((40, top), left, fill=38, font=face_here)
        if right:
            draw.text((width - 40, top), right, fill=38, font=face_here, anchor="ra")
    return paper


def photographed(paper: Image.Image, number: int) -> bytes:
    """Take a photo of it by hand, in a garage: skew, turn, shade, blur, noise, and JPEG."""
    chance = random.Random(7000 + number)
    noise = np.random.default_rng(7000 + number)
    width, height = paper.width + 260, paper.height + 260
    table = Image.new("L", (width, height), 70 + chance.randrange(60))
    table.paste(paper, (130, 130))
    turned = table.rotate(chance.uniform(-4.0, 4.0), Image.Resampling.BICUBIC, fillcolor=90)
    lean = [chance.uniform(0, 0.05) * width for _ in range(8)]
    corners = (
        lean[0], lean[1], lean[2], height - lean[3], width - lean[4], height - lean[5], width - lean[6], lean[7],
    )  # fmt: skip
    skewed = turned.transform((width, height), Image.Transform.QUAD, corners, Image.Resampling.BICUBIC)
    blurred = skewed.filter(ImageFilter.GaussianBlur(chance.uniform(0.5, 1.7)))
    down, across = np.mgrid[0:height, 0:width]
    angle = chance.uniform(0, 2 * math.pi)
    slope = (across / width - 0.5) * math.cos(angle) + (down / height - 0.5) * math.sin(angle)
    light = 0.82 + chance.uniform(0.1, 0.45) * slope
    edge = chance.uniform(-0.3, 0.3)
    shade = np.where(slope > edge, 1.0, chance.uniform(0.6, 0.95))  # somebody stands in the light
    seen = np.asarray(blurred, dtype=float) * light * shade + noise.normal(
        0, chance.uniform(2, 7), (height, width)
    )
    tinted = np.stack(
        [seen * factor for factor in (1.0, chance.uniform(0.93, 1.0), chance.uniform(0.82, 0.97))], axis=-1
    )
    whole = io.BytesIO()
    Image.fromarray(tinted.clip(0, 255).astype("uint8")).save(whole, "JPEG", quality=chance.randint(55, 85))
    return whole.getvalue()


def photo(number: int) -> bytes:
    """Give the photo of the receipt with this number."""
    return photographed(printed(receipt(number).lines, number), number)


__all__ = ["FOLDER", "FONTS", "Receipt", "photo", "receipt"]
