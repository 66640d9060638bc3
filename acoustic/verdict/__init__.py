"""WHAT IT MEANS: expected lines against heard bins, judged for the drive as a whole.

Reading order: suspects, line_likelihood, clutter, unknowns, comb_evidence, sources,
fault_count, messages, joint_match, line_evidence, groups, wording, decision.
"""
