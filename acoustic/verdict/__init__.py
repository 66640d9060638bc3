"""WHAT IT MEANS: expected lines against heard bins, judged for the drive as a whole.

Reading order: belief, suspects, line_likelihood, clutter, unknowns, comb_evidence, sources,
claims, song_priors, problem, heard_realm, part_states, offsets, healthy_songs, fault_sets,
user_words, joint_match, line_evidence, groups, wording, heard_noises, belt_slip, detectable,
headline, decision, change_values, change_alike, change_statistics, change_places, change_words,
change.
"""
