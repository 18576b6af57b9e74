"""A plain treatment room in Blender, clothed bodies in it, and the camera.

World axes and camera as in camera.py; metres.
"""

import math

import bpy
import mathutils
import numpy as np

from camera import camera_axes

WALL = 1.15
CEILING = 2.62
ROOM = 4.2


def _material(name, colour, roughness=0.6, noise=0.0, scale=40.0, bump=0.0, stretch=(1, 1, 1), attribute=False):
    material = bpy.data.materials.new(name)
    material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    shader = nodes["Principled BSDF"]
    shader.inputs["Roughness"].default_value = roughness
    shader.inputs["Specular IOR Level"].default_value = 0.3
    shader.inputs["Base Color"].default_value = (*colour, 1)
    source = None
    if attribute:
        source = nodes.new("ShaderNodeVertexColor")
        source.layer_name = "colour"
        source = source.outputs["Color"]
    if noise or bump:
        place = nodes.new("ShaderNodeTexCoord")
        stretched = nodes.new("ShaderNodeMapping")
        stretched.inputs["Scale"].default_value = stretch
        texture = nodes.new("ShaderNodeTexNoise")
        texture.inputs["Scale"].default_value = scale
        texture.inputs["Detail"].default_value = 4
        links.new(place.outputs["Object"], stretched.inputs["Vector"])
        links.new(stretched.outputs["Vector"], texture.inputs["Vector"])
        if noise:
            shade = nodes.new("ShaderNodeMapRange")
            shade.inputs["From Min"].default_value = 0.3
            shade.inputs["From Max"].default_value = 0.7
            shade.inputs["To Min"].default_value = 1 - noise
            shade.inputs["To Max"].default_value = 1 + noise
            links.new(texture.outputs["Fac"], shade.inputs["Value"])
            multiply = nodes.new("ShaderNodeVectorMath")
            multiply.operation = "SCALE"
            multiply.inputs[0].default_value = colour
            if source is not None:
                links.new(source, multiply.inputs[0])
            links.new(shade.outputs["Result"], multiply.inputs["Scale"])
            source = multiply.outputs["Vector"]
        if bump:
            relief = nodes.new("ShaderNodeBump")
            relief.inputs["Strength"].default_value = bump
            relief.inputs["Distance"].default_value = 0.002
            links.new(texture.outputs["Fac"], relief.inputs["Height"])
            links.new(relief.outputs["Normal"], shader.inputs["Normal"])
    if source is not None:
        links.new(source, shader.inputs["Base Color"])
    return material


def _object(name, vertices, faces, material, smooth=True, colour=None, thickness=0.0):
    data = bpy.data.meshes.new(name)
    data.from_pydata(np.asarray(vertices).tolist(), [], np.asarray(faces).tolist())
    data.materials.append(material)
    if smooth:
        data.polygons.foreach_set("use_smooth", np.ones(len(data.polygons), bool))
    if colour is not None:
        layer = data.color_attributes.new("colour", "FLOAT_COLOR", "POINT")
        layer.data.foreach_set("color", np.c_[colour, np.ones(len(colour))].ravel())
    thing = bpy.data.objects.new(name, data)
    bpy.context.collection.objects.link(thing)
    if thickness:
        solid = thing.modifiers.new("thickness", "SOLIDIFY")
        solid.thickness = thickness
        solid.offset = -1
        # A hem's edge must not shade the cloth beside it.
        thing.modifiers.new("hem", "EDGE_SPLIT").split_angle = math.radians(50)
    return thing


def _box(name, low, high, material, bevel=0.0):
    (x0, y0, z0), (x1, y1, z1) = low, high
    vertices = [(x, y, z) for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)]
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    thing = _object(name, vertices, faces, material, smooth=False)
    if bevel:
        round_off = thing.modifiers.new("bevel", "BEVEL")
        round_off.width = bevel
        round_off.segments = 3
    return thing


def _planks(colour):
    material = _material("floor", colour, roughness=0.45, noise=0.12, scale=6, stretch=(1, 14, 1))
    nodes, links = material.node_tree.nodes, material.node_tree.links
    bricks = nodes.new("ShaderNodeTexBrick")
    place = nodes.new("ShaderNodeTexCoord")
    shader = nodes["Principled BSDF"]
    bricks.inputs["Scale"].default_value = 1.0
    bricks.inputs["Brick Width"].default_value = 1.3
    bricks.inputs["Row Height"].default_value = 0.16
    bricks.inputs["Mortar Size"].default_value = 0.002
    bricks.inputs["Color1"].default_value = (1.0, 1.0, 1.0, 1)
    bricks.inputs["Color2"].default_value = (0.82, 0.80, 0.78, 1)
    bricks.inputs["Mortar"].default_value = (0.45, 0.42, 0.40, 1)
    links.new(place.outputs["Object"], bricks.inputs["Vector"])
    grain = shader.inputs["Base Color"].links[0].from_socket
    both = nodes.new("ShaderNodeVectorMath")
    both.operation = "MULTIPLY"
    links.new(grain, both.inputs[0])
    links.new(bricks.outputs["Color"], both.inputs[1])
    links.new(both.outputs["Vector"], shader.inputs["Base Color"])
    return material


def _furniture(room, wall_at, white, metal):
    """Door, couch and pictures."""
    door = _material("door", room["door"], roughness=0.5, noise=0.06, scale=5, stretch=(12, 12, 1))
    vinyl = _material("vinyl", room["couch"], roughness=0.5)
    x, wide, tall = room["door_at"], 0.86, 2.03
    _box("leaf", (x, wall_at - 0.012, 0.005), (x + wide, wall_at + 0.01, tall), door)
    for left in (x - 0.075, x + wide):
        _box("jamb", (left, wall_at - 0.03, 0), (left + 0.075, wall_at, tall), white, 0.004)
    _box("lintel", (x - 0.075, wall_at - 0.03, tall), (x + wide + 0.075, wall_at, tall + 0.075), white, 0.004)
    _box("handle", (x + 0.06, wall_at - 0.07, 1.02), (x + 0.19, wall_at - 0.05, 1.04), metal, 0.008)

    x = room["couch_at"]
    _box("mattress", (x, wall_at - 0.72, 0.52), (x + 1.9, wall_at - 0.06, 0.62), vinyl, 0.03)
    _box("frame", (x + 0.05, wall_at - 0.66, 0.46), (x + 1.85, wall_at - 0.12, 0.515), metal)
    for leg in (x + 0.12, x + 1.72):
        for depth in (wall_at - 0.62, wall_at - 0.2):
            _box("leg", (leg, depth, 0), (leg + 0.05, depth + 0.05, 0.47), metal)

    for number, hung in enumerate(room.get("pictures", [])):
        (x, z), (wide, tall) = hung["at"], hung["size"]
        _box("picture frame", (x, wall_at - 0.02, z), (x + wide, wall_at, z + tall), white, 0.003)
        printed = _material(f"picture {number}", hung["colour"], roughness=0.7, noise=0.5, scale=3)
        _box("picture", (x + 0.03, wall_at - 0.022, z + 0.03), (x + wide - 0.03, wall_at - 0.005, z + tall - 0.03), printed)


def build_room(room):
    """Walls, floor, door, couch, pictures and light; `room` gives colours and places.

    A `bare` room has none of what tells which way is up: door, couch and pictures.
    """
    wall_at = room.get("wall_at", WALL)
    wall = _material("wall", room["wall"], roughness=0.9, noise=0.02, scale=3, bump=0.15)
    white = _material("paint", (0.80, 0.79, 0.76), roughness=0.5)
    metal = _material("metal", (0.5, 0.5, 0.52), roughness=0.35)
    quad = [(0, 1, 2, 3)]
    r = ROOM
    _object("floor", [(-r, -6, 0), (r, -6, 0), (r, wall_at, 0), (-r, wall_at, 0)], quad, _planks(room["floor"]), False)
    _object("wall", [(-r, wall_at, 0), (r, wall_at, 0), (r, wall_at, CEILING), (-r, wall_at, CEILING)], quad, wall, False)
    _object("ceiling", [(-r, -6, CEILING), (r, -6, CEILING), (r, wall_at, CEILING), (-r, wall_at, CEILING)], quad, white, False)
    _box("skirting", (-r, wall_at - 0.016, 0), (r, wall_at, 0.09), white, 0.004)

    if not room.get("bare"):
        _furniture(room, wall_at, white, metal)

    # The brighter light stands on the picture's left, or on the other side.
    mirrored = -1 if room.get("key_from_right") else 1
    fill = room.get("fill", 0.55)
    for at, size, power, turn in (
        ((-2.2 * mirrored, -2.6, 2.3), 2.0, room["key"], (math.radians(52), 0, mirrored * math.radians(-38))),
        ((1.9 * mirrored, -3.0, 2.1), 2.4, fill * room["key"], (math.radians(55), 0, mirrored * math.radians(34))),
        ((0.0, -0.9, CEILING - 0.02), 1.2, 0.35 * room["key"], (0, 0, 0)),
    ):
        data = bpy.data.lights.new("light", "AREA")
        data.size, data.energy = size, power
        data.color = room["light"]
        lamp = bpy.data.objects.new("light", data)
        lamp.location, lamp.rotation_euler = at, turn
        lamp.visible_camera = False
        bpy.context.collection.objects.link(lamp)
    world = bpy.data.worlds.new("world")
    bpy.context.scene.world = world
    world.use_nodes = True
    world.node_tree.nodes["Background"].inputs[0].default_value = (0.9, 0.95, 1.0, 1)
    world.node_tree.nodes["Background"].inputs[1].default_value = 0.45


def materials_of(look):
    hair = look["hair"]
    return {
        "skin": _material("skin", (1, 1, 1), roughness=0.52, noise=0.05, scale=90, bump=0.05, attribute=True),
        "hair": _material("hair", hair["colour"], roughness=0.45, noise=0.35, scale=90, bump=0.9, stretch=(1, 0.25, 0.25)),
        "scarf": _material("scarf", hair["colour"], roughness=0.85, noise=0.12, scale=30, bump=0.6, stretch=(1, 1, 3)),
        "brows": _material("brows", hair.get("brows", hair["colour"]), roughness=0.8),
        "iris": _material("iris", look["iris"], roughness=0.2),
        "pupil": _material("pupil", (0.01, 0.01, 0.01), roughness=0.1),
        "top": _material("top", look["top"]["colour"], roughness=0.8, noise=0.06, scale=25, bump=0.25),
        "trousers": _material("trousers", look["trousers"]["colour"], roughness=0.85, noise=0.06, scale=20, bump=0.3),
        "socks": _material("socks", (0.75, 0.75, 0.74), roughness=0.9, noise=0.05, scale=60, bump=0.3),
    }


def render(path, people, things, room, camera, width, height, samples, seed):
    """Render people, each (pieces in world coordinates, look), to a lossless picture at `path`.

    `things` are pieces of one matte colour each.
    """
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    build_room(room)
    for pieces, look in people:
        materials = materials_of(look)
        for piece in pieces:
            _object(piece.name, piece.vertices, piece.faces, materials[piece.material],
                    colour=piece.colour, thickness=piece.thickness)
    for piece in things:
        _object(piece.name, piece.vertices, piece.faces, _material(piece.name, piece.colour, roughness=0.85), smooth=False)

    lens = bpy.data.cameras.new("camera")
    lens.sensor_fit, lens.sensor_width = "HORIZONTAL", 36.0
    lens.lens = 36.0 * camera["focal_px"] / width
    thing = bpy.data.objects.new("camera", lens)
    right, up, forward = camera_axes(camera["pitch_deg"], camera["roll_deg"])
    pose = np.eye(4)
    pose[:3, :3] = np.stack([right, up, -forward], axis=1)
    pose[:3, 3] = (0, -camera["distance_m"], camera["height_m"])
    thing.matrix_world = mathutils.Matrix(pose.tolist())
    bpy.context.collection.objects.link(thing)
    scene.camera = thing

    scene.render.engine = "CYCLES"
    scene.cycles.device = "CPU"
    scene.cycles.samples = samples
    scene.cycles.use_denoising = True
    scene.cycles.seed = seed
    scene.cycles.max_bounces = 4
    scene.render.threads_mode, scene.render.threads = "FIXED", 2
    scene.render.resolution_x, scene.render.resolution_y = width, height
    scene.render.image_settings.file_format = "PNG"
    scene.view_settings.view_transform = "AgX"
    scene.view_settings.look = "AgX - Medium High Contrast"
    scene.view_settings.exposure = room.get("exposure", 0.0)
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)
