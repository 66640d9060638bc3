"""WHAT TURNS: from a layout file to every order this drive can make.

Reading order: layout, drive, faults, engine, pulleys, belts, bearings, gears, places,
shafts, linking, belt_links, links, belt_paths, parts, build, line_numbers, toml_edits, typed_file,
layout_file, expected, hiding, order_table.
"""
