"""A DRIVE THAT SOUNDS AS ITS LAYOUT SAYS, healthy or faulty, heard through a phone.

For samples, for the trial and for listening. It knows the drive and the recording values
only and shares nothing with what judges a recording, so the two cannot share a mistake.

Reading order: scene_settings, random_curves, critical_band, crank_speed, made_noise,
misfire, true_drive, engine_sound, ringing, engine_ticks, surroundings, probe_point, planted,
tones, trains, band_part, knocks, growl, cries, rattle, friction, broad_noise, noises,
band_sounds, codec, phone, truth, scene, clip_file, truth_table.
"""
