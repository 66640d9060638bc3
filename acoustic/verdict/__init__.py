"""WHAT IT MEANS: expected lines against heard bins, judged for the drive as a whole.

Reading order: suspects, line_likelihood, clutter, unknowns, comb_evidence, sources,
claims, cry_steps, song_priors, problem, heard_realm, part_states, offsets, healthy_songs,
fault_sets, user_words, joint_match, line_evidence, groups, wording, heard_noises, belt_slip,
detectable, headline, decision.
"""
