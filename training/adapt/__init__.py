"""Adapt the network that looks at photos to plants, and judge its frozen features on classes that it never learned.

python -m training.adapt.pack PHOTOS PACK          pictures and start weights, in two files
python -m training.adapt PHOTOS --out DIR          trials of configs/recipes/starter.yaml, judged by folds
python -m training.adapt.judge PHOTOS [WEIGHTS]    the table of one network alone
"""
