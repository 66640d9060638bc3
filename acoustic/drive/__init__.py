"""WHAT TURNS: from a layout file to every order this drive can make.

Reading order: layout, drive, formula, engine, pulleys, belts, shafts, bearings, gears,
build, layout_file, expected, order_table.
"""
