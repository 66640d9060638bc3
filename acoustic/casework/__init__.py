"""THE RECORD: one customer's noise from the first call to the proof of the repair.

Reading order: check_results, next_checks, openings, service_due, repair_choice,
choice_words.
"""
