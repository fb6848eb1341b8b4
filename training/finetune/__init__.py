"""Fine-tune the network that looks at photos. Nothing is imported here: most of it needs torch."""
