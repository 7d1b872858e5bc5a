"""What may leave the clinic: the de-identified data set, and several of them as one."""
