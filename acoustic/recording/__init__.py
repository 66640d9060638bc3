"""WHAT WAS HEARD: from any phone clip to samples, usable stretches, speed and quality.

Reading order: recording, taken, speed_trace, remarks, containers, decoders, survey,
audio_file, frame_levels, same_sound, stretches, switch_off, speed_settings, speed_sound,
speed_comb, speed_path, speed_follow, speed_multiple, speed_heard, speed_given,
speed_alignment, speed_log, codec_band, level_checks, quality.
"""
