"""Spanish: what the weather tells its reader, and what the job did not say."""

from __future__ import annotations

__all__ = ["SAYINGS", "WORDS"]

SAYINGS: dict[str, str] = {
    "weather.told": "{text}",
    "weather.columns_aside": "Columnas del archivo que no se usan: {columns}.",
    "weather.saturated": "{rows:renglón tiene|renglones tienen} un punto de rocío hasta "
    "{above_k} arriba del aire, por el redondeo en aire saturado.",
    "weather.off_hour": "{rows} de {count:renglón|renglones} no caen en la hora: se leyó a "
    "horas enteras entre ellos.",
    "weather.averaged": "{rows:renglón|renglones} cada {step_s}, promediados por hora.",
    "weather.coarse": "Hay un renglón cada {step_s}: las horas entre ellos se llenan con una curva.",
    "weather.read_as": "El archivo se leyó así: {how}.",
    "weather.accepted": "Se preguntó y el archivo mismo lo acepta: {names}.",
    "weather.steady": "El aire se queda en {temp_c} en todo el archivo: ¿es una medición?",
    "weather.season": "Un promedio de {mean_c} está lejos de lo que da la temporada en la obra ({low_c} a {high_c}): revise unidad, fecha y coordenadas.",
    "weather.sun": "La hora más caliente cae a las {warmest} según el sol: revise la diferencia horaria y las coordenadas de la obra.",
    "weather.file_ahead": "{label} se escribió {ahead_h} en el futuro: revise el reloj de esta máquina.",
    "read.encoding": "texto en {encoding}",
    "read.parted": "celdas separadas por {mark:word}",
    "read.commas": "comas decimales",
    "read.column": "{what:word} de “{column}”",
    "read.clock_site": "horas sin diferencia horaria, tomadas como el reloj de la obra ({zone})",
    "read.clock": "horas en el reloj {zone}",
    "read.doubled": "{rows:renglón|renglones} en la hora que se repite, distinguidos por su orden",
    "read.epoch": "tiempo contado desde 1970 en {unit}, UTC",
    "read.order": "fechas con {order:word}",
    "read.newest_first": "el renglón más nuevo va primero, se invirtió",
    "read.marked": "{rows:celda|celdas} como -9999 tomadas como faltantes",
    "read.left_out": "{rows:renglón|renglones} al pie de la tabla no se usan, son sumas o promedios",
    "read.repeated": "{rows:encabezado|encabezados} de nuevo entre los renglones, no se usan",
    "read.twice": "{rows:renglón dado|renglones dados} dos veces, se toma una",
    "weather.station_used": "{station}: se usa.",
    "weather.station_used_poor": "{station}: se usa, aunque dio {given_frac} de las horas "
    "pasadas y la última tiene {silent_s:age}.",
    "weather.station_spare": "{station}: no hizo falta.",
    "weather.station_poor": "{station}: no se usa, dio {given_frac} de las horas pasadas, la "
    "última tiene {silent_s:age}.",
    "weather.station_silent": "{station}: no se usa, no dio nada.",
    "weather.height": "Temperatura llevada a la altura de la obra con {lapse_k} por km.",
    "weather.list_old": "La lista de estaciones tiene {age_s:age} ({why}).",
    "weather.reused": "Bajado hace {age_s:age}; todavía no se pide otra vez.",
    "weather.forecast_age": "Pronóstico más viejo que se usa: {label}, emitido hace "
    "{age_s:age}.",
    "weather.forecast_age_written": "Pronóstico más viejo que se usa: {label}, sin hora de "
    "emisión, archivo escrito hace {age_s:age}.",
    "weather.forecast_age_fetched": "Pronóstico más viejo que se usa: {label}, sin hora de "
    "emisión, bajado hace {age_s:age}.",
    "weather.forecast_old": "Pronóstico viejo: {label}, emitido hace {age_s:age}, se permiten "
    "{allowed_s:age}.",
    "weather.forecast_old_written": "Pronóstico viejo: {label}, sin hora de emisión, archivo "
    "escrito hace {age_s:age}, se permiten {allowed_s:age}.",
    "weather.forecast_old_fetched": "Pronóstico viejo: {label}, sin hora de emisión, bajado "
    "hace {age_s:age}, se permiten {allowed_s:age}.",
    "weather.copy": "No hay clima nuevo ({why}): esta es la copia bajada hace {age_s:age}, "
    "{fetched_at:full}.",
    "weather.copy_mixed": "No hay clima nuevo ({why}): esta es la copia bajada hace "
    "{age_s:age}, {fetched_at:full}, con horas nuevas donde las hubo.",
    "weather.not_kept": "No se pudo guardar para un día sin red: no se puede escribir en "
    "{folder}.",
    "weather.history_short": "Solo se conocen {had_h:whole} h de las {wanted_h:whole} h antes "
    "del trabajo, así que la losa es menos segura: mídala en la obra.",
    "weather.shut": "No se consiguió: {why}.",
    "door.far": "ninguna estación a menos de 30 km tiene pronóstico propio",
    "door.station_forecast": "no hay pronóstico de estación ({why})",
    "door.contact": "el pronóstico por punto de MET Norway pide un correo o una página "
    "suya: ponga contact en [weather]",
    "door.point_forecast": "no hay pronóstico por punto ({why})",
    "door.future": "el pronóstico de {who} dice que salió {ahead_h} en el futuro: revise el "
    "reloj de esta máquina",
    "door.no_hour": "ninguna estación cercana dio una hora útil ({why})",
    "door.unweighed": "no se pudieron promediar las estaciones",
    "door.list_broken": "no se pudo leer la lista de estaciones",
    "door.no_station": "no hay estación a menos de 50 km de la obra",
    "door.no_list": "no hay lista de estaciones ({why})",
    "door.slow": "la red estuvo muy lenta",
    "door.client": "no se pudo usar el programa del clima",
    "door.unreadable": "una respuesta no se pudo leer",
    "door.short": "las horas dadas no alcanzan para todo el trabajo",
    "door.older": "lo que se dio es más viejo que la copia",
    "net.nothing": "sin respuesta",
    "net.silent": "{host}: sin respuesta completa",
    "net.status": "{host}: HTTP {status}",
    "net.unusable": "{host}: la respuesta no sirvió",
    "source.weather": "{kind:word}",
    "source.note": "{note}",
    "source.defaults": "{taken}",
    # Where a card's values come from.
    "origin.fitted": "ajustado a {readings:lectura|lecturas} de {source}",
    "origin.night": "corregido esa noche con {readings:lectura|lecturas}",
    "origin.told": "{text:words}",
    # What the job did not say.
    "job.generic_card": "{card:words} es una ficha genérica: ponga los valores de la hoja "
    "técnica del producto que tiene en la mano.",
    "job.liquids_cold": "Los líquidos se midieron más fríos de lo que permite la ficha: deje "
    "que se entibien.",
    "job.default": "{key:word}: {value} ({origin:word}).",
    "value.temperature": "{value_c}",
    "value.difference": "{value_k}",
    "value.length": "{value_m}",
    "value.film": "{value_m:film}",
    "value.time": "{value_s:exact}",
    "value.hours": "{value_s}",
    "value.share": "{value_frac}",
    "value.pace": "{value_m2_s}",
}

WORDS: dict[str, str] = {
    # How a table was understood.
    "mark.comma": "coma",
    "mark.semicolon": "punto y coma",
    "mark.tab": "tabulador",
    "mark.bar": "barra",
    "order.dmy": "día primero",
    "order.mdy": "mes primero",
    "order.ymd": "año primero",
    "what.time": "horas",
    "what.temp_c": "aire en °C",
    "what.temp_f": "aire en °F",
    "what.temp_k": "aire en kelvin",
    "what.dew_c": "punto de rocío en °C",
    "what.dew_f": "punto de rocío en °F",
    "what.dew_k": "punto de rocío en kelvin",
    "what.humidity_pct": "humedad en por ciento",
    "what.humidity_frac": "humedad como fracción",
    "by a shape-preserving curve between coarse steps": "completado con una curva entre pasos "
    "largos",
    "default: from memory": "no se dio: de memoria",
    "default: invented": "no se dio: inventado",
    # The shipped cards, by title and by name.
    "Fast urethane cement slurry": "Lechada rápida de cemento uretano",
    "Clear polyaspartic topcoat": "Capa transparente poliaspártica",
    "Quartz, broadcast to refusal": "Cuarzo, tirado hasta saturar",
    "Rolled slab primer": "Imprimante de losa a rodillo",
    # Keys a job may leave out.
    "materials.iced": "Líquidos al salir del hielo",
    "materials.cool_filler": "Polvo enfriado",
    "materials.cooler_loss": "Hielo que se pierde en la hielera",
    "materials.waste": "Desperdicio",
    "materials.profile_allowance": "Se va en el perfil de la losa",
    "pace.haul": "Llevar una cubeta",
    "pace.rake": "Rastrillar, cada uno",
    "pace.smooth": "Alisar, cada uno",
    "pace.broadcast": "Tirar piedra, cada uno",
    "pace.topcoat": "Capa transparente, cada uno",
    "pace.vacuum": "Aspirar, cada uno",
    "pace.row_depth_min": "Hilera menos honda",
    "pace.row_depth_max": "Hilera más honda",
    "pace.bay_turn": "Pasar a la franja siguiente",
    "policy.dew_margin": "Losa arriba del punto de rocío al menos por",
    "weather.max_age": "Pronóstico más viejo permitido",
}
