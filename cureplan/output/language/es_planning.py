"""Spanish words for what the planning says: one template per `Message` code.

The twin of `en_planning`: same codes, same placeholders, the Spanish spoken on site.
"""

from __future__ import annotations

__all__ = ["SAYINGS", "WORDS"]

SAYINGS: dict[str, str] = {
    # Order and start.
    "order.first": "Cuadrilla {call_at}; primeros líquidos {start_at:time}, {room}.",
    "order.room": "{order}. {room}: {kits:kit|kits}, {start_at} a {end_at:time}, "
    "{margin_min} de sobra.",
    "order.room_short": "{order}. {room}: {kits:kit|kits}, {start_at} a {end_at:time}, "
    "CORTO por {margin_min:short}.",
    "order.way_out": "{room} va después de {rooms}: es su salida.",
    "order.rising_slab": "La losa se calienta mientras cuela {rooms}: el aire adentro se "
    "expande y puede ampollar el piso. Mejor con la losa enfriándose.",
    "pour.binds": "{room}: la cubeta {bucket} es la más justa; {binding:word} deja "
    "{margin_min} (mezcla {mixed_c}, losa {slab_c}).",
    "pour.short": "{room}: la cubeta {bucket} es la más justa; {binding:word} queda corto por "
    "{margin_min:short} (mezcla {mixed_c}, losa {slab_c}).",
    "pour.rhythm": "Cae una cubeta cada {cadence_s:exact}; el paso lo marca {limit:word}.",
    "pour.as_is": "{room} como está: {as_is_margin_min} de sobra.",
    "pour.as_is_short": "{room} como está, en una franja: corto por {as_is_margin_min:short}.",
    "pour.hour": "{room} espera una hora más fresca.",
    "pour.chill": "{room}: líquidos en hielo.",
    "pour.cool_filler": "{room}: el polvo se guarda fresco.",
    "pour.bays": "{room}: {bays:franja|franjas} de {bay_width_m}, con corte en un desagüe o "
    "junta entre ellas.",
    "doubt.buckets": "Se cumple {keeps_frac:nights}.",
    # Ice.
    "ice.yes_all": "Sí: {ice_kg} de hielo para {kits:kit|kits} en total; cubetas adentro antes de {in_ice_at}.",
    "ice.yes": "Sí, para {rooms}: {ice_kg} de hielo para {kits:kit|kits}; cubetas adentro antes de {in_ice_at}.",
    "ice.no": "Sin hielo: los líquidos entran a {liquids_c}.",
    "ice.not_needed": "{room} es el más justo y aun sin hielo tiene {margin_min} de sobra.",
    "ice.not_allowed": "{room} no alcanza, pero el trabajo no permite enfriar.",
    "ice.no_help": "{room} no alcanza, y el hielo solo no lo arregla.",
    "ice.un_iced_short": "Sin hielo, {room} quedaría corto por {as_is_margin_min:short} en una "
    "franja.",
    "ice.un_iced_tight": "Sin hielo, {room} tendría solo {as_is_margin_min} de sobra; el "
    "trabajo pide {policy_margin_s}.",
    "ice.buys": "El hielo gana {gained_bucket_min} en la cubeta y {gained_floor_min} en el "
    "piso: a {slab_c} la losa manda en pocos minutos.",
    "ice.time": "De {from_c} a {to_c}, las cubetas quietas necesitan {standing_h:up}; si se "
    "mueven seguido, {stirred_h:up}.",
    "ice.time_measured": "Los líquidos se midieron; de {from_c} a {to_c}, las cubetas quietas "
    "necesitan {standing_h:up}, movidas {stirred_h:up}.",
    "ice.sweats": "Las cubetas en hielo van a sudar: tapas puestas, séquelas. El agua hace "
    "espuma en el endurecedor.",
    "doubt.ice": "No está probado: meta un termómetro en una cubeta antes de la primera.",
    "doubt.ice_measured": "Los líquidos se midieron; lo que eso gana no está probado.",
    # The way back.
    "back.coat_1": "Capa 1: cuadrilla {call_at}, en el piso {start_at:then_up} a {end_at:then_up}.",
    "back.coat_2": "Capa 2: cuadrilla {call_at}, en el piso {start_at:then_up} a {end_at:then_up}.",
    "back.opens_late": "Lista {open_at:up}, {late_s:up} DESPUÉS del límite.",
    "back.opens": "Lista {open_at:up}, {spare_s} antes del límite.",
    "back.tightest": "La ventana más justa: {room}, capa {coat}, no antes de {opens_at:up}, no "
    "después de {closes_at}; {spare_s} de sobra.",
    "back.last_room": "{room} es el último: se puede lavar desde {wash_at:up}.",
    "doubt.back": "Las capas cumplen {coats_frac:nights}; abre a tiempo {opening_frac:nights}.",
    "coat.when_ready": "Se aplica en cuanto el piso esté listo, {opens_at:up}; no después de "
    "{closes_at}.",
    "coat.after_others": "Listo desde {opens_at:up}, pero antes van la cuadrilla, el turno, el "
    "punto de rocío o la salida; {spare_s} antes de que sea muy viejo.",
    "call.set_up": "Llega {ahead_s:up} antes para preparar.",
    "call.moves_on": "Se pasa {ahead_s:up} antes.",
    # What else would help.
    "alternative.chill": "Poner los líquidos en hielo",
    "alternative.cool_filler": "Guardar fresco también el polvo",
    "alternative.bays": "Una franja más, con línea de corte",
    "alternative.more_mixing": "Una estación más de mezcla, con su mezclador",
    "alternative.more_mixer": "Un mezclador más, para la estación parada",
    "alternative.more_station": "Una estación de mezcla más, para el mezclador parado",
    "alternative.more_haul": "Un acarreador más",
    "alternative.more_rake": "Un rastrillo más",
    "alternative.more_smooth": "Un alisador más",
    "alternative.more_broadcast": "Uno más para tirar piedra",
    # One limit given way, and the whole job would go.
    "relax.open_later": "{keeps:word} si la cocina abriera {open_at:up}",
    "relax.rooms_later": "{keeps:word} si solo {rooms} abriera más tarde, {open_at:up}",
    "relax.in_sooner": "{keeps:word} si la cuadrilla pudiera entrar {from_at}",
    "relax.pour_longer": "{keeps:word} si el turno de colado siguiera hasta las {clock}",
    "relax.coat_sooner": "{keeps:word} si el turno de capas empezara a las {clock}",
    "relax.coat_longer": "{keeps:word} si el turno de capas siguiera hasta las {clock}",
    "relax.more_mixing": "{keeps:word} con una estación más de mezcla y su mezclador",
    "relax.more_mixer": "{keeps:word} con un mezclador más, para la estación parada",
    "relax.more_station": "{keeps:word} con una estación de mezcla más, para el mezclador parado",
    "relax.more_haul": "{keeps:word} con un acarreador más",
    "relax.more_rake": "{keeps:word} con un rastrillo más",
    "relax.more_smooth": "{keeps:word} con un alisador más",
    "relax.more_broadcast": "{keeps:word} con uno más para tirar piedra",
    "relax.remedies": "{keeps:word} si el trabajo permitiera {remedies:words}",
    "relax.more_topcoat": "{keeps:word} con uno más para las capas",
    "relax.also_open_later": "y si la cocina abriera {open_at:up}",
    "relax.also_remedies": "y si el trabajo permitiera {remedies:words}",
    # Warnings.
    "warn.short": "{room} no llega a lo pedido: la cubeta {bucket} tiene {margin_min} de "
    "{policy_margin_s}. No lo cuele así.",
    "warn.negative": "{room} queda corto por {margin_min:short} en la cubeta {bucket}. No lo "
    "cuele así.",
    "warn.sure_negative": "{room} pierde una orilla más seguido de lo que permite el trabajo: "
    "se cumple {keeps_frac:nights}.",
    "warn.ice_passed": "Ya pasó la hora de meter las cubetas en hielo, {in_ice_at}: muévalas, "
    "o mida los líquidos y haga el plan de nuevo.",
    "warn.ice_off_shift": "Las cubetas deben estar en hielo antes de {in_ice_at}, cuando no "
    "hay nadie de turno: nombre a alguien.",
    "warn.ice_too_long": "Saque a tiempo las cubetas movidas: después de {too_cold_s} bajan "
    "del mínimo de la ficha, {minimum_c}.",
    "warn.no_dew": "El clima no trae humedad en algunas horas: revise a mano la losa y el "
    "punto de rocío antes de cada capa.",
    "warn.closes_beyond": "{rooms}: se puede recubrir por más tiempo del que se ve; las horas de "
    "este plan acaban {until_at}, antes de que sea tarde.",
    "warn.generic": "Los valores del material son genéricos ({cards:words}): ponga los de la hoja "
    "técnica del producto que tiene en la mano.",
    "warn.gap": "Al clima le falta un tramo: {what:words}, {gap_at}, {hours} h; {mended:words}.",
    "warn.weather_note": "Clima: {note}",
    "warn.row_deep": "{room}: hileras de {row_depth_m} pasan del alcance del rastrillo, "
    "{reach_m}; rastrille de lado o en dos jalones.",
    "warn.batch_slow": "{room}, capa {coat}: una mezcla tarda {batch_min:up} en aplicarse pero "
    "solo se trabaja {working_min}. Haga mezclas más chicas.",
    "warn.card_fit": "De {card} se conoce una sola temperatura; los minutos usan la regla de "
    "que la reacción va al doble por cada {doubling_k}.",
    "warn.ice_early": "Una cubeta que necesita {standing_h:up} en hielo es mucha espera; "
    "movida cada pocos minutos necesita {stirred_h:up}.",
    "warn.even_odds": "Ningún orden ni comienzo cumple las ventanas de las capas {wanted_frac:nights}: se cumplen según lo esperado, apenas la mitad de las veces. Vea qué más ayudaría.",
    "warn.standing": "Vacíe cada cubeta de inmediato. Sin hielo y parada, la mezcla pasa de {mixed_c} a {hot_c} y se acaba {standing_min} después del polvo; en el piso dura {floor_min}. Las sobras siguen calentándose.",
    "warn.humidity_unknown": "{card}: sus tiempos dependen de la humedad, que el clima no trae; se toma {reference_frac}.",
    "warn.humidity_beyond": "{card}: los cuartos tendrán {from_frac} a {to_frac} de humedad, sus puntos van de {low_frac} a {high_frac}; fuera de ellos se usa el punto más cercano.",
    "warn.past": "En trabajos terminados solo {inside_frac} de los relojes acabaron dentro del intervalo que debe cumplirse {holds_frac}: ajuste la ficha con ellos (cureplan fit --records).",
    # Planned again on the night.
    "replan.next": "Sigue: cubeta {bucket} de {room}, líquidos {mix_at:time}, se cuela "
    "{pour_at:time}.",
    "replan.all_poured": "Ya se colaron todas las cubetas; solo se recalcula el regreso.",
    "replan.left_out": "{room} ya no cabe: en ningún turno que queda alcanza.",
    "replan.no_readings": "El registro no trae lecturas nuevas: material y losa como antes.",
    "replan.faster": "Este lote va {off_frac} más rápido que en el plan, más o menos "
    "{doubt_frac} (de {readings:lectura|lecturas}).",
    "replan.slower": "Este lote va {off_frac} más lento que en el plan, más o menos "
    "{doubt_frac} (de {readings:lectura|lecturas}).",
    "replan.as_card": "Este lote va como en el plan, más o menos {doubt_frac} (de "
    "{readings:lectura|lecturas}).",
    "replan.slab_warmer": "{room}: losa {off_k} más caliente que lo previsto, más o menos "
    "{doubt_k} ({basis:word}).",
    "replan.slab_cooler": "{room}: losa {off_k} más fría que lo previsto, más o menos "
    "{doubt_k} ({basis:word}).",
    "replan.kits_warmer": "Los juegos están {off_k} más calientes que lo planeado.",
    "replan.kits_cooler": "Los juegos están {off_k} más fríos que lo planeado.",
    "replan.stations": "Falló un taladro: {stations:estación queda|estaciones quedan}.",
    "replan.short_of": "Falta gente: {role:word}, quedan {people}.",
    "replan.wait": "No se mezcla nada antes de {until_at:up}.",
    "replan.ran_short": "{room}: la cubeta {buckets} no alcanzó para su parte. Mida el espesor "
    "y tenga a la mano hasta {kits:juego|juegos} más.",
    "replan.dropped": "{room} se quita.",
    "replan.added": "{room} se agrega: {kits:juego|juegos}, sin hielo.",
    "replan.added_no_way": "{room} se agrega: {kits:juego|juegos}, sin hielo; se toma que da "
    "directo afuera.",
    "replan.margin_less": "{room}: la cubeta {bucket}, la más justa que falta, tiene "
    "{margin_min} de sobra, {change_min:short} menos.",
    "replan.margin_more": "{room}: la cubeta {bucket}, la más justa que falta, tiene "
    "{margin_min} de sobra, {change_min} más.",
    "replan.bays": "{room}: {bays:franja|franjas} en vez de {was}, línea de corte en un drenaje "
    "o junta.",
    "replan.order": "Ahora conviene otro orden: {rooms}.",
    "replan.moved": "{room} empieza {to_at} en vez de {from_at}.",
    "replan.ends": "{room} termina {to_at} en vez de {from_at}.",
    "replan.coat_1": "Capa 1 {to_at:up} en vez de {from_at:up}.",
    "replan.coat_2": "Capa 2 {to_at:up} en vez de {from_at:up}.",
    "replan.coat_late": "{room}, capa {coat} va {start_at:up}, pero después de {closes_at} el "
    "piso de abajo es muy viejo para pegar: llame antes a la cuadrilla de capas, o líjelo.",
    "replan.past_shift": "{room} terminaría {end_at:up}, después del fin de turno {limit_at}: "
    "que siga la cuadrilla, o pare en un drenaje o junta.",
    "replan.opens_late": "{room} abre {open_at:up}, después del límite de {limit_at}.",
    "replan.assumed": "{room}: sin línea de la cubeta {buckets}; se toma como colada según el plan.",
    "replan.edge_lost": "{room}: la orilla abierta de la cubeta {buckets} endurece desde "
    "{wet_at}, antes de que llegue la vecina. Haga ahí una línea de corte ya.",
    "replan.short": "{room}: a la cubeta {bucket} le faltarían {margin_min:short}.",
    "replan.help_ice": "{room}: líquidos en hielo darían {buys_min} más, si ya están fríos.",
    "replan.help_ice_in": "{room}: sus líquidos ya están en hielo; el hielo no da más.",
    "replan.help_station": "{room}: una estación más de mezcla daría {buys_min} más.",
    "replan.help_bays": "{room}: una franja más daría {buys_min} más.",
    "replan.help_stop": "{room}: o haga una línea de corte tras la cubeta {bucket}, en un "
    "drenaje o junta, y siga a otra hora.",
    # Assumptions behind the numbers.
    "source.indoor_dew": "Se toma que el aire de adentro lleva la misma humedad que el de "
    "afuera.",
    "source.pace": "El paso de las manos y la preparación son valores inventados si el "
    "trabajo no los da: mida el tiempo de una cubeta.",
    "source.ice": "Los minutos del hielo siguen la práctica común (5 a 6 min), no hay fuente.",
    "source.slab": "Losa por conducción con {history_h} de clima antes del trabajo.",
    "source.slab_read": "Losa por conducción, corregida con lecturas en {rooms}.",
    "source.card": "{provenance:words}",
    "source.humidity": "Los tiempos de {card} siguen también la humedad de los cuartos, dentro "
    "de {low_frac} a {high_frac} de sus puntos.",
    "source.humidity_idle": "Las humedades en {card} no se pueden separar del efecto del calor; "
    "sus tiempos siguen solo la temperatura.",
    "source.record": "{jobs:trabajo terminado|trabajos terminados} con estos materiales: "
    "{clocks:reloj acabó|relojes acabaron} a {miss_min} de lo dicho en promedio, {bias_min} "
    "{bias:word}; {inside_frac} dentro del intervalo dicho, que debe cumplirse {holds_frac}.",
}

WORDS: dict[str, str] = {
    # What a change would bring.
    "keeps.limits": "Todo se cumpliría",
    "keeps.windows": "Capas y apertura se cumplirían con la seguridad pedida",
    "keeps.margins": "Cada cubeta tendría su margen",
    # Which way past predictions erred.
    "bias.longer": "después de lo dicho",
    "bias.shorter": "antes de lo dicho",
    # How a slab's correction is known.
    "basis.read": "leída ahí",
    "basis.inferred": "según los otros cuartos",
}
