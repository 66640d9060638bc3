"""Who sits where."""


def test_two_components_on_one_pulley(sample_drive) -> None:
    """Water pump and steering pump behind one pulley are one shaft."""
    drive = sample_drive("rear_six.toml")
    assert drive.parts["water pump"].shaft == drive.parts["steering pump"].shaft == "pumps pulley"
