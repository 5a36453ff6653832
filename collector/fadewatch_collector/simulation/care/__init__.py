"""A fleet whose laptops get other packs, with every swap labelled."""
