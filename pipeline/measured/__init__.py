"""Tables of measurements that are made in Python."""
