"""WHAT PEOPLE SEE: the answer as text, as JSON and as pictures.

Reading order: wording, whole_file, text, answer_schema, json_report, order_listing, palette,
part_letters, spectrogram, sound_panels, part_panels, picture, belt_panels, shaft_chain,
drive_drawing, change_text, change_picture.
"""
