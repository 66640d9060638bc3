"""THE RECORD: one customer's noise from the first call to the proof of the repair.

Reading order: gate, track_record.
"""
