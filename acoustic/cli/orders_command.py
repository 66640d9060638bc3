"""``acoustic orders``: everything a drive can make, as text, JSON and a drawing."""

from __future__ import annotations

import sys
from pathlib import Path

from acoustic import __version__
from acoustic.cli.options import TO_PIPE, parsed_rpm, require_json_place


def run_orders(layout: Path, rpm: str | None, json_file: Path | None, picture: Path | None) -> int:
    """List the orders of a layout, write what was asked for; return the exit code."""
    from acoustic.drive.layout_file import read_drive
    from acoustic.drive.order_table import find_order_table
    from acoustic.output.json_report import render_json
    from acoustic.output.order_listing import orders_to_dict, render_orders
    from acoustic.output.whole_file import require_picture_place, write_text_whole

    speed_rpm = None if rpm is None else parsed_rpm(rpm)
    require_json_place(json_file)
    if picture is not None:
        require_picture_place(picture)
    drive = read_drive(layout)
    table = find_order_table(drive, speed_rpm)
    if picture is not None:
        from acoustic.output.drive_drawing import draw_drive
        from acoustic.output.picture import write_picture

        write_picture(draw_drive(drive), picture)
    if json_file is not None:
        text = render_json(orders_to_dict(table, __version__))
        if json_file == TO_PIPE:
            sys.stdout.write(text)
        else:
            write_text_whole(json_file, text)
    if json_file != TO_PIPE:
        sys.stdout.write(render_orders(table))
        written = [str(p) for p in (json_file, picture) if p is not None]
        if written:
            sys.stdout.write(f"\nWritten: {', '.join(written)}\n")
    return 0
