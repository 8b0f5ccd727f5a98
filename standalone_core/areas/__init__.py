"""Areas of a design: path of insertion, margin line, intaglio, external, occlusal, …"""
