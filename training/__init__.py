"""Make the acoustic model: texts, synthesis, augmentation, training, export, benchmark."""
