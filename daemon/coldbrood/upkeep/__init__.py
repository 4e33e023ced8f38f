"""What keeps the watch itself sound: backup, restore, the doctor, the test of the whole chain."""
