"""WHAT IT MEANS: expected lines against heard bins, judged for the drive as a whole.

Reading order: belief, beside, suspects, level_shifts, strangers, chosen_blur, row_blur,
line_likelihood, window_sums, hot_tones, clutter, hidden_shafts, unknowns, comb_evidence,
sources, reach, speed_groups, lasting, noise_prices, claims, cry_steps, song_priors,
problem, heard_realm, contests, part_states, offsets, healthy_songs, fault_sets, user_words,
drive_sources, joint_match, healthy_reference, line_evidence, by_recording, groups, wording,
heard_noises, heard_swelling, belt_slip, detectable, headline, decision, change_values,
change_alike, change_statistics, change_places, change_words, change, sounding_place.
"""
