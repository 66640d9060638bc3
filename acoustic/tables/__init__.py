"""Knowledge as data: kinds of component, bearings and belts, every row with its source.

Reading order: words, formula, rows, hand_check_rows, sound_words, knowledge, plan_words.
"""
