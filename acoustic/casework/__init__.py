"""THE RECORD: one customer's noise from the first call to the proof of the repair.

Reading order: clip_length, plan_suspects, telling_lines, plan_speeds, pair_advice,
plan_steps, plan, gate, check_results, next_checks, openings, service_due, repair_choice,
choice_words, track_record, take_words, take_names, case_file, history, lasting_files,
layout_change, case_folder, kept_answer, case_writes, case_answer, case_choice, take_in,
check_entry, case_change, packing, pack_words, pack_answer, pack_archive, case_mail, case_index,
link_receipts, customer_links.
"""
