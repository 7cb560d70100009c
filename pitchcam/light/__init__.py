"""How light is drawn and mirrored: tone curve, blur and sharpening, what metal gives back."""
