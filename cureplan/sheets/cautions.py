"""Cautions every sheet carries, in both languages.

Facts of law and of the trade: silica after 29 CFR 1926.1153 (permissible limit 50, action
level 25 µg/m³ as an 8-hour average); ground-fault protection after 29 CFR 1926.404(b)(1);
the rest is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["CAUTIONS"]

CAUTIONS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "en": (
        (
            "What comes first",
            "The product data sheet, the safety data sheet, local codes and licensed practice "
            "come before this sheet. Its times are estimates.",
        ),
        (
            "Silica dust",
            "Grinding, pouring filler and throwing or sweeping stone raise it. OSHA limit "
            "50 µg/m³, action level 25 µg/m³, both as an 8-hour average (29 CFR 1926.1153). "
            "Shroud and vacuum the grinder, never sweep dry, wear the respirator.",
        ),
        (
            "Isocyanates",
            "Hardener and topcoat can sensitise lungs and skin for life. Gloves, sleeves, "
            "goggles, fresh air, and the respirator the safety data sheet asks for. "
            "Anyone who wheezes leaves the floor.",
        ),
        (
            "Leftover buckets",
            "A mixed bucket left standing heats up and can smoke. Pour it out thin outdoors; "
            "never leave it full, never put a lid on it.",
        ),
        (
            "Power beside melting ice",
            "Mixers, cords and wet floors: ground-fault protection on every line, cords off "
            "the floor, no mixer beside a puddle (29 CFR 1926.404).",
        ),
        (
            "Water and hardener",
            "Iced pails sweat. Lids on, wipe dry before you open: water in the hardener foams. "
            "Nothing scraped off the pail wall goes on the floor.",
        ),
        (
            "Wet resin underfoot",
            "It is slippery. Spiked shoes on wet floor only, off on ladders and stairs.",
        ),
        (
            "Heat and night work",
            "Water, shade and a break every hour; watch each other for heat stress. Light the "
            "way out. Nobody works alone.",
        ),
        (
            "No fuel-burning heaters",
            "No gas or oil heaters over fresh floors: their fumes and moisture spoil the "
            "surface, and the air in a closed kitchen kills.",
        ),
    ),
    "es": (
        (
            "Lo primero",
            "La hoja técnica y la hoja de seguridad del producto, los códigos locales y el "
            "trabajo con licencia valen antes que esta hoja. Sus tiempos son cálculos.",
        ),
        (
            "Polvo de sílice",
            "Sale al esmerilar, al echar el polvo y al tirar o barrer piedra. Límite de OSHA "
            "50 µg/m³, nivel de acción 25 µg/m³, promedio de 8 horas (29 CFR 1926.1153). "
            "Esmeril con capucha y aspiradora, nunca barrer en seco, respirador puesto.",
        ),
        (
            "Isocianatos",
            "El endurecedor y la capa transparente pueden sensibilizar pulmones y piel de por "
            "vida. Guantes, mangas, gogles, aire fresco y el respirador que pide la hoja de "
            "seguridad. Al que le silbe el pecho, que salga del piso.",
        ),
        (
            "Cubetas que sobran",
            "Una cubeta mezclada que se queda parada se calienta y puede echar humo. Tírela "
            "extendida y afuera; nunca la deje llena ni la tape.",
        ),
        (
            "Corriente junto al hielo",
            "Mezcladoras, extensiones y piso mojado: protección de falla a tierra (GFCI) en "
            "cada línea, cables fuera del piso, ninguna mezcladora junto a un charco "
            "(29 CFR 1926.404).",
        ),
        (
            "Agua y endurecedor",
            "Las cubetas en hielo sudan. Tapas puestas y séquelas antes de abrir: el agua hace "
            "espuma en el endurecedor. Lo que se raspa de la pared de la cubeta no va al piso.",
        ),
        (
            "Resina fresca en el piso",
            "Resbala. Zapatos con clavos solo sobre el piso fresco; quíteselos en escaleras.",
        ),
        (
            "Calor y trabajo de noche",
            "Agua, sombra y un descanso cada hora; cuídense unos a otros del golpe de calor. "
            "Alumbren la salida. Nadie trabaja solo.",
        ),
        (
            "Nada de calentones de gas",
            "Ni gas ni diésel sobre pisos frescos: el humo y la humedad echan a perder la "
            "superficie, y el aire de una cocina cerrada mata.",
        ),
    ),
}
