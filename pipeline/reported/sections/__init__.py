"""The sections of the pages, one file each, with the charts that belong to them."""
