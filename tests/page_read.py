"""A map's data blocks read back, for its tests: written anew from the published encoding, not with
the page's own code."""

from __future__ import annotations

import base64
import json
import re


def islands_of(text: str) -> dict:
    found = re.findall(
        r'<script type="application/json" id="([\w-]+)">(.*?)</script>', text, flags=re.DOTALL
    )
    return {name: json.loads(body) for name, body in found}


def read_ints(text: str) -> list[int]:
    """Zigzag varints as the Protocol Buffers encoding guide describes them, byte by byte."""
    out, value, shift = [], 0, 0
    for byte in base64.b64decode(text):
        value |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            out.append((value >> 1) ^ -(value & 1))
            value = shift = 0
    return out
