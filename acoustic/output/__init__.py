"""WHAT PEOPLE SEE: the answer as text, as JSON and as pictures.

Reading order: wording, whole_file, points_text, text, checks_text, case_text,
track_record_text, link_text, answer_schema, json_report, change_text, order_listing, plan_text,
plan_page, palette, part_letters, spectrogram, sound_panels, part_panels, picture,
points_picture, change_picture, belt_panels, shaft_chain, drive_drawing, swelling_picture,
knock_picture, sound_file, part_sounds, side_by_side, page_pieces, picture_words, report_pictures,
report_matter, report_reading, report_customer, report_evidence, report_steps, report_limits,
report_sounds, report_page, report_pdf, case_sounds.
"""
