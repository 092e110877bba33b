"""Where are the nuts: finding, pose and grouping of fasteners in a photo."""
