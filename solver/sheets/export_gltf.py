"""The machine as a glTF 2.0 scene: one node a piece, named by its sign and cell.

glTF has y up, so one root node turns the world (x east, y north, z up) round. All pieces share
one cube; those that face somewhere have a nose on that side. Dashing and hatching do not exist
in glTF, so colour and the nose must do.
"""

from __future__ import annotations

import base64
import json
import struct
from typing import Any

from models.geometry import Face
from models.plan import PIECE_KINDS, BuildPlan, Layer, Piece
from solver.plan.words import at, level_name, symbol

COLOUR: dict[str, tuple[int, int, int]] = {
    "tape": (0, 114, 178),
    "cover": (225, 225, 222),
    "block": (150, 150, 150),
    "insulator": (95, 95, 95),
    "wire": (155, 79, 130),
    "buffer": (190, 120, 168),
    "inverter": (0, 120, 90),
    "sensor": (70, 165, 135),
    "push_ram": (179, 71, 0),
    "grip_ram": (222, 130, 60),
    "button": (40, 40, 40),
}
SIZE: dict[str, tuple[float, float, float]] = {
    "wire": (0.7, 0.7, 0.2),
    "buffer": (0.84, 0.84, 0.4),
    "inverter": (0.5, 0.5, 0.6),
    "button": (0.4, 0.4, 0.4),
}
_HALF = 0.7071068
_TURN: dict[Face, list[float]] = {
    "+z": [0.0, 0.0, 0.0, 1.0],
    "-z": [1.0, 0.0, 0.0, 0.0],
    "+x": [0.0, _HALF, 0.0, _HALF],
    "-x": [0.0, -_HALF, 0.0, _HALF],
    "+y": [-_HALF, 0.0, 0.0, _HALF],
    "-y": [_HALF, 0.0, 0.0, _HALF],
}
"""Rotations that turn +z to the face."""
_SIDES = (
    ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ((-1, 0, 0), (0, 0, 1), (0, 1, 0)),
    ((0, 1, 0), (0, 0, 1), (1, 0, 0)),
    ((0, -1, 0), (1, 0, 0), (0, 0, 1)),
    ((0, 0, 1), (1, 0, 0), (0, 1, 0)),
    ((0, 0, -1), (0, 1, 0), (1, 0, 0)),
)


def write_gltf(plan: BuildPlan) -> str:
    """The text of a .gltf file with its buffer inside."""
    nodes: list[dict[str, Any]] = [
        {"name": "machine", "rotation": [-_HALF, 0.0, 0.0, _HALF], "children": []}
    ]
    nose = _mesh_count()
    for layer in plan.layers:
        _add_layer(nodes, layer, nose)
    if not nodes[0]["children"]:
        del nodes[0]["children"]
    data, views, accessors = _buffer()
    scene = {
        "asset": {"version": "2.0", "generator": "Ringwright"},
        "scene": 0,
        "scenes": [{"name": plan.machine.title or "machine", "nodes": [0]}],
        "nodes": nodes,
        "meshes": _meshes(),
        "materials": _materials(),
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [
            {
                "byteLength": len(data),
                "uri": "data:application/octet-stream;base64," + base64.b64encode(data).decode(),
            }
        ],
    }
    return json.dumps(scene, separators=(",", ":"))


def _add_layer(nodes: list[dict[str, Any]], layer: Layer, nose: int) -> None:
    group: dict[str, Any] = {"name": level_name(layer.surface, layer.level), "children": []}
    nodes[0]["children"].append(len(nodes))
    nodes.append(group)
    for piece in layer.pieces:
        group["children"].append(len(nodes))
        nodes.append(_node(piece))
        if piece.face:
            nodes[-1]["children"] = [len(nodes)]
            nodes.append(_nose(piece, nose))
    if not group["children"]:
        del group["children"]


def _node(piece: Piece) -> dict[str, Any]:
    return {
        "name": f"{symbol(piece)} {at(piece.at)}",
        "mesh": PIECE_KINDS.index(piece.kind),
        "translation": [float(v) for v in piece.at],
        "scale": list(SIZE.get(piece.kind, (0.9, 0.9, 0.9))),
        "extras": {"kind": piece.kind, "unit": piece.unit},
    }


def _nose(piece: Piece, mesh: int) -> dict[str, Any]:
    """A dark peg on the side that the piece faces; undoes the scale of its piece first."""
    assert piece.face is not None
    axis, sign = "xyz".index(piece.face[1]), 1 if piece.face[0] == "+" else -1
    place, size = [0.0, 0.0, 0.0], SIZE.get(piece.kind, (0.9, 0.9, 0.9))
    place[axis] = sign * 0.5
    return {
        "mesh": mesh,
        "translation": place,
        "rotation": _TURN[piece.face],
        "scale": [0.25, 0.25, 0.25 / size[axis]],
    }


def _mesh_count() -> int:
    """The number of the nose's mesh: after one for each kind."""
    return len(PIECE_KINDS)


def _meshes() -> list[dict[str, Any]]:
    names = [*PIECE_KINDS, "nose"]
    return [
        {
            "name": name,
            "primitives": [
                {"attributes": {"POSITION": 0, "NORMAL": 1}, "indices": 2, "material": number}
            ],
        }
        for number, name in enumerate(names)
    ]


def _materials() -> list[dict[str, Any]]:
    colours = [*(COLOUR[kind] for kind in PIECE_KINDS), (20, 20, 20)]
    return [
        {
            "name": name,
            "pbrMetallicRoughness": {
                "baseColorFactor": [*(round((v / 255) ** 2.2, 4) for v in colour), 1.0],
                "metallicFactor": 0.0,
                "roughnessFactor": 0.9,
            },
        }
        for name, colour in zip([*PIECE_KINDS, "nose"], colours, strict=True)
    ]


def _buffer() -> tuple[bytes, list[dict[str, Any]], list[dict[str, Any]]]:
    """A cube of edge 1 around the origin: places, normals, triangles."""
    places: list[float] = []
    normals: list[float] = []
    corners: list[int] = []
    for number, (out, u, v) in enumerate(_SIDES):
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            places += [(out[i] + a * u[i] + b * v[i]) / 2 for i in range(3)]
            normals += [float(out[i]) for i in range(3)]
        corners += [4 * number + k for k in (0, 1, 2, 0, 2, 3)]
    blobs = [
        struct.pack(f"<{len(places)}f", *places),
        struct.pack(f"<{len(normals)}f", *normals),
        struct.pack(f"<{len(corners)}H", *corners),
    ]
    starts = [0, len(blobs[0]), len(blobs[0]) + len(blobs[1])]
    views = [
        {"buffer": 0, "byteOffset": start, "byteLength": len(blob), "target": target}
        for start, blob, target in zip(starts, blobs, (34962, 34962, 34963), strict=True)
    ]
    low, high = [-0.5, -0.5, -0.5], [0.5, 0.5, 0.5]
    accessors: list[dict[str, Any]] = [
        {"bufferView": 0, "componentType": 5126, "count": 24, "type": "VEC3"}
        | {"min": low, "max": high},
        {"bufferView": 1, "componentType": 5126, "count": 24, "type": "VEC3"},
        {"bufferView": 2, "componentType": 5123, "count": 36, "type": "SCALAR"},
    ]
    return b"".join(blobs), views, accessors
