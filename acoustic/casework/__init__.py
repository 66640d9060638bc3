"""THE RECORD: one customer's noise from the first call to the proof of the repair.

Reading order: take_words, take_names, case_file, history, lasting_files, case_folder,
case_writes, case_index.
"""
